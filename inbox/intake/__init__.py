"""The doors: whatever readers' words arrive in becomes an `Incoming`, and `deliver` takes it in."""
