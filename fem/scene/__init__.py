"""A tube in three dimensions: wall, threads and plates as triangles; stills, films, window."""
