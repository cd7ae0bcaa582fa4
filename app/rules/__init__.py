"""What the engineering says: pure functions of facts and limits, standard library only."""
