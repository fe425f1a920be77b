"""What was authorised: the fill-in posterior, predictive times, which channels are late and which will not come."""
