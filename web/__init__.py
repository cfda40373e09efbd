"""The dashboard: static pages, styles and scripts. No Python lives here."""
