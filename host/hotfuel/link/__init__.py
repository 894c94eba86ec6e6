"""The link to the board: ports (the only code that uses pyserial), the hello, commands, and a view of frames."""
