"""From the ware to the program: the fastest schedule that is safe, in the segments there are."""
