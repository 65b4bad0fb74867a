"""Code for the browser, used by the page and by reports: arrays, scripts, painter."""
