"""The sky mask: the chance that a direction is clear, learnt from how strongly navigation satellites are received."""
