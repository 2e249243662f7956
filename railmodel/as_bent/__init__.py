"""What came off the bender: a shop's measurements, the most likely shape, what to correct."""
