"""The pages: on this machine only unless told otherwise, drawn on the server, with small scripts and no build step."""
