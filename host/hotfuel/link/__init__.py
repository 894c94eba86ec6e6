"""The way to the board: ports, the only place that knows pyserial, and a view for looking into frames."""
