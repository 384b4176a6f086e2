"""What every PDF of the lab is drawn with: faces, text, styles, tables, charts."""
