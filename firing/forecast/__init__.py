"""What a schedule will do: hours, cone, energy and warnings, with or without a kiln."""
