"""Commands that are killed, run out of room, or meet one another: what was there stays, and they go on."""
