"""The meshed tube: body, outer face, all that neighbouring cases share."""
