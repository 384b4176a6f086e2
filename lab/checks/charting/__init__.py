"""Control charts of a system's checks by one procedure.

`series`: the values in their order, cut into phases. `control`: limits, moving average
and the rules that fired. `plots`: both as pictures. `warnings`: what fired with a check
that is being recorded.
"""
