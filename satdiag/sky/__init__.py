"""What the sky allows: where the satellites stand, what is in the way, and how much of the sky is open."""
