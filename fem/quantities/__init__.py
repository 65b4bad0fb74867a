"""What a state of any model comes down to: snapshots, shapes, columns of the step table."""
