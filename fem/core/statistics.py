"""The band that holds 95 % of normal noise."""

BAND = 1.959963984540054
"""Half its width in standard deviations: the quantile of the normal distribution at 0.975."""
