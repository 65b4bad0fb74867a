"""Films of the path."""

from fem.show.movie.movie import save_movie

__all__ = ["save_movie"]
