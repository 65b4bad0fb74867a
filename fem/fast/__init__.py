"""The fast model: uniform extension, inflation and torsion of a thick tube; three unknowns."""
