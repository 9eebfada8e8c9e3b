"""The ends of cables as found: devices that the site calls the manager, and sockets of ports that have but one."""

from __future__ import annotations

from dataclasses import replace

from interop.site.site import Cable, End, Site

__all__ = ["end_at", "found_end", "with_found_ends"]


def found_end(site: Site, end: End) -> End:
    """An end as found, with its device where the site calls it the manager's, and its socket where there is but one."""
    name = end.device
    if name is None:
        name = next((link.manager for link in site.found_links or () if end.link in (None, link.id)), None)
    return end if name is None or name == "propose" else end_at(site, name, end)


def end_at(site: Site, name: str, end: End) -> End:
    """An end at a device, with its port where only the socket is written, and its socket where there is but one."""
    ports, port, socket = site.devices[name].record.ports, end.port, end.socket
    if port is not None and port not in ports:
        port, socket = next(((one, port) for one in ports if port in ports[one].sockets), (None, None))
    if port is not None and socket is None and len(ports[port].sockets) == 1:
        socket = ports[port].sockets[0]
    return End(name, port, socket, end.link)


def with_found_ends(site: Site) -> Site:
    """Return the site with the ends of its found cables written out."""
    if site.found_cables is None:
        return site

    def whole(cable: Cable) -> Cable:
        return replace(cable, a=found_end(site, cable.a), b=found_end(site, cable.b))

    return replace(site, found_cables=tuple(map(whole, site.found_cables)))
