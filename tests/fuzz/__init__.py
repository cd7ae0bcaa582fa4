"""What anybody may send, thrown at whatever reads it: it is understood, or refused in words, and nothing else."""
