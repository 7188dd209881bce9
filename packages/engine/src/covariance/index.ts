// Covariance: how the errors of an instrument's points hang together, learned from overlaps; weights for the adjustment.
export {};
