"""The document of a certificate: drawn, made fit to keep, signed, stored."""
