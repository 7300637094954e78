"""Months measured after the purchase, and what they say about the futures drawn before it."""
