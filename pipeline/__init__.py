"""Everything that touches the world: files, sound, papers, the terminal and the browser."""
