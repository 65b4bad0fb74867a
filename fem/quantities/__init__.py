"""What a state of any model comes down to: figures, shapes, columns of the step table."""
