"""What a car's runs, and the shop's, have taught."""
