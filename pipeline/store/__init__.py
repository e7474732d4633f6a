"""Everything kept between visits: jobs, recordings, drafts, edits, papers, machines. One layer, two databases."""
