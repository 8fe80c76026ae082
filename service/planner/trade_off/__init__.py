"""What one property costs in another: the best of one for every level of the other."""
