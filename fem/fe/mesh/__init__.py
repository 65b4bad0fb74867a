"""The mesh of a tube or sector, its outer face, and regrouped threads."""
