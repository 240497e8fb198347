"""What she decides with her eyes: motifs kept as they have grown, and marks that say what is to be done where."""
