"""From logged channels to what the car did. Pure: arrays in, records out."""
