"""The rules, one a module: needs as data, and what to compute from them."""
