"""Answers as pictures: descriptions of charts in Vega-Lite, made from an answer's document alone."""
