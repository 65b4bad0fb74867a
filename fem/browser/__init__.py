"""What runs in the browser, in the page and in reports: arrays, scripts, painter."""
