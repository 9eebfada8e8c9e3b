"""Decisions: members, manager, mode, dialect, rate, addresses; then route, terminators, conductors, switches.

What "best" means, exactly. Conditions (never traded): ``must`` wishes, a manager the site names, address and
manager rules of the records, everything a record says of another on one link, whatever its source. Among what is
left the least vector of whole numbers, first level first:

1. installed packs that stood on a found link as manager or member and are on no link now, unless the link's
   ``may_leave`` names them;
2. one level for each ``prefer`` wish about membership (``keep X unmanaged``, ``keep X managed``), in the order
   listed: packs that break it;
3. usable energy [Wh] of candidate packs that are on no link: int(capacity x nominal voltage x usable share), lowest
   of disputed or ranged values, nominal voltage as stated else cells x 3.2 V for LFP, share 1 if not stated, 0 Wh
   if capacity is not stated;
4. packs at an address whose pattern also means another address (two equal rows of a printed table);
5. one level for each other ``prefer`` wish, in the order listed: ``keep addresses of X``: packs of X that are off
   any link or at an address their found switches do not mean (or nobody looked); ``keep switches of X``: switches
   moved on X; ``manager P``: 1 unless P is that manager; ``not manager X``: packs of X that are manager; ``fewest
   switches moved``: all switches moved; ``physical order``: as level 9;
6. installed packs whose role, controllers or mode change (a mode nobody wrote down does not count; nothing counts
   where the site wrote no found links). A pack that stood on no found link was unmanaged;
7. single switches moved on installed packs on a link, terminators and switches that hang on the place in the route
   left out; a switch nobody looked at counts one, a rotary, hex or menu setting one; a pack that ends on no link
   moves none;
8. managers not of the highest generation of their own family among the component's packs;
9. sum over packs on a link of (place rank - address rank) squared: place rank among the link's candidate packs;
   address rank among the slots of the frame (see below) by address, a manager without an address first. Where the
   route numbers the packs only the manager counts (rank 0);
10. ties: packs in order of place, then of position in the file, each takes the lowest slot: link in file order,
    manager first (by its address, none before any), then members by address; off any link last.

Of some packs only so many may be on one link: one of a record that speaks with one identity, one of all that have no
address of their own, and no more terminators fixed inside than leave the bus a load that it can be run with, those of
controllers on it counted. An address is open to a pack only where its record allows every address that its pattern
means. In a run without gaps such an address with several meanings is open to none; where gaps are allowed no two packs
of a link may mean one address.

What the route alone shows is a condition too: a switch that a ``must`` wish keeps does not move, and a manager that the
site does not name stands where its record makes it one (its port empty, first in a row or by place that counts from
it). A plan that breaks it is taken out by the manager and packs of its link, and the next best is looked at. A
``prefer`` wish to keep switches does not count those that hang on the place in the route; a note says where they move.

Preferences other than membership stand after energy: otherwise "keep the address of the old manager" would leave
new packs unmanaged, since a new manager often needs that very address.

Slots of a link with n packs: with gaps forbidden (or not stated) by any record on it the addresses are a run
without gaps from the start (as stated, else the lowest allowed, the manager's own among them), n long, or n - 1
where the manager has no address; with gaps allowed by all: every allowed address. A record without a stated manager
address that is made by flag, code, port or place may be manager at any allowed address.
"""
