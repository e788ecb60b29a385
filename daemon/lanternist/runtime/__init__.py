"""The only place with threads, the real clock and signals: what joins inputs, the operator and outputs into a night."""
