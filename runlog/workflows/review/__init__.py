"""A test day as one document: what is known of the car after it, what isn't, and the car as it was left."""
