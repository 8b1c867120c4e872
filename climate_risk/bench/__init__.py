"""What a run costs and how near that is to what the machine can do."""
