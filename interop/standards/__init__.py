"""Published tables: plugs and colours, conductors, ampacity, device ratings, bus limits, cell voltage."""
