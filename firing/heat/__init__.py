"""Heat conduction and material properties, shared by the kiln and the ware."""
