"""The parts the screens are put together from."""
