"""The version of this program: the build reads it here, and so does what is kept of a take or a fit."""

VERSION = "0.1.0"
