"""Air, correction and the longitudinal model. Pure: arrays in, arrays out."""
