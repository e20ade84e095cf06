"""What is to be expected of a change before it is made."""
