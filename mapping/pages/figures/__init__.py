"""Figures of one visit, as inline SVG that a screen reader can tell and a printer without color can print."""
