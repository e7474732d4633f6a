"""Words in, facts out: no files written, no audio, network, clock or globals."""
