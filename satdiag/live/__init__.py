"""The live page: what is recorded, shown and tapped in from a telephone or a tablet beside the head unit."""
