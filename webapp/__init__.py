"""railcase: where a common-rail diesel loses its rail pressure, proven before the pump comes off."""

__version__ = "0.1.0"
