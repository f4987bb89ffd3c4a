"""The user's files: TOML with every fault at its line, edits that keep comments, ready files."""
