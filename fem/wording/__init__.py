"""Words that pictures, pages, reports and terminals share: labels, remarks, tables."""
