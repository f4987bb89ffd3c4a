"""What a firing really did, set against its plan."""
