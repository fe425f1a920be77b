"""The recorder: one loop that watches several sources, one writer, and nothing that is lost in silence."""
