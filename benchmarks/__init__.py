"""The speed lines of the house: ratios within one run, printed with how to repeat them."""
