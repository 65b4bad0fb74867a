"""Output of a state of either model: values, shape, columns of the step table."""
