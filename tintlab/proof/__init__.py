"""What the lit piece looks like: over its face, in its rooms, in photographs."""
