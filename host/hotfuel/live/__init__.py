"""What is happening now, for a crew: one state, shown on a page in the browser and in a terminal. Both follow the log; neither can affect the recording."""
