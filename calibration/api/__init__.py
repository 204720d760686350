"""What other programs send of brews and instruments, and read of results."""
