"""Settings of the documentation site; docs/build.py gathers the pages and calls Sphinx."""

project = "Halfsplit"
copyright = "the Halfsplit authors, MIT licence"
extensions = ["myst_parser"]
myst_heading_anchors = 3
html_theme = "furo"  # light and dark, no fonts or scripts from elsewhere
html_title = "Halfsplit"
html_show_sphinx = False
html_copy_source = False
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_theme_options = {"top_of_page_buttons": []}
