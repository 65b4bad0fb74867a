"""The rubber wall and the pressure in the bore: energies, forces and stiffness by cell."""
