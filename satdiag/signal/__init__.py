"""What was received: shares of time per path, levels, drop-outs."""
