"""How long work runs: left between its steps, on several processes."""
