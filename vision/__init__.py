"""From a photo to readings: what is in the picture, measured and not judged.

The egg's way through this folder, in order:

``photo``        open a picture file, upright, sRGB, with its capture time
``egg_mask``     which pixels are egg, its blunt half, its air cell (a small network)
``egg_outline``  an egg profile fitted to each mask
``find_eggs``    the view, and every egg's outline, from those two
``tray_grid``    which cup of the tray each egg lies in
``tray_eggs``    which cups are empty, and which only look so
``tray_card``    a printed card in the photo, which says where A1 is
``quality``      whether a picture of an egg can be trusted, and what to do if not
                 (``sharpness``: blur by direction; ``exposure``: light and glare;
                 ``egg_surroundings``: two lamps, fingers in front)
``air_cell``     where the membrane meets the shell: depth, diameter, tilt, volume
``end_view_air_cell`` the same from above: the disc inside the round silhouette (``rim_evidence``: its edges)
``veins``        the branching vessels
``embryo``       the dark mass of the embryo
``read_photo``   all of these on one picture
``overlay``      what was measured, drawn on the picture
"""
