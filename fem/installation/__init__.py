"""Whether this machine can run everything: each part is tried in a process of its own."""
