"""From bytes of a file to records; a file is read whole or refused with every fault found."""
