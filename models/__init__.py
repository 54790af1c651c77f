"""What joins readings with the norms: proposals, training, evaluation, the shipped model."""
