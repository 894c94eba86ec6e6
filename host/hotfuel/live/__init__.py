"""What is happening now, for a crew: one state, shown on a page in the browser and in a terminal. Followers of the log; neither can touch the recording."""
