"""Pictures for papers: one state of each view, side by side."""

from fem.scene.still.picture import ENDINGS, check_still, save_still

__all__ = ["ENDINGS", "check_still", "save_still"]
