"""What is kept: history, withdrawing, two laptops, copies, and checks that all of it is whole."""
