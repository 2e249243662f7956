"""How sure: what each bend does to each point, how far the shop's spread carries it, the chance that it fits."""
