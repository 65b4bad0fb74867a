"""Films of the path."""

from fem.scene.film.film import save_movie

__all__ = ["save_movie"]
