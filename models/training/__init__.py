"""How the shipped models were trained; needs the ``train`` extra and, for speed, a GPU."""
