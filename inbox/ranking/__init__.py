"""What to develop next, which recipes fail and why: estimators over what readers wrote, and their words."""
