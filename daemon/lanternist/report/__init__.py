"""Pictures and pages for people. Sees only the core; what is printed is handed in, dates too."""
