"""A back-sweetening and blending solver: amounts of honey, concentrate and juice that hit the targets."""

from importlib.metadata import version

MODEL_VERSION = version("back-sweetening-solver")
"""The release whose equations gave an answer; it stands in every answer."""
