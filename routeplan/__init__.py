"""Trip planning for paddlers: legs, exposure, launch windows, stops, kit.

Modules by layer, each importing only from the ones above it:

0 base          errors, units
1 route, coast  geodesy, route, gpx, coastline, exposure
2 environment   forecast, sampling, wind, sun
3 craft         propulsion, simulation
4 decisions     limits, windows, stops, plan
5 presentation  report, charts, cli
"""

__version__ = "0.1.0"
