"""The terminal screens, on top of `firing`; `firing` never imports them."""
