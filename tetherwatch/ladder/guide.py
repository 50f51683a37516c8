"""How to shoot a noise ladder, in words for the terminal (at most 79 columns)."""

GUIDE = """\
THE NOISE LADDER: how far may I raise ISO?

You photograph one still scene at ISO after ISO. Each frame gets the same
light on the sensor's scale, so what differs between them is noise.

 1 Light    Steady lamps only. Close the blinds, let the lamps warm up, leave
            out dimmed or pulsing ones. Flash works if its power repeats.
 2 Camera   Tripod, remote release. Manual exposure and focus, one aperture.
            Raw. Switch off noise reduction, also for long exposures, and
            stabilisation.
 3 Scene    Something dark, something bright, fine detail (cloth, print), and
            if you have one a grey card in the same light, facing the camera.
 4 Start    Lowest ISO. Set the time so that the card sits at mid-grey and the
            whites do not clip: 'tetherwatch read FILE --plan window-card'.
 5 Rung     Take two frames without touching anything. Two give the best
            figures; one works, with wider uncertainty.
 6 Climb    Double ISO, halve the time, take two frames again. Go on to the
            highest ISO you would ever use, and one further.
 7 No time  When the shortest time is reached, put an ND filter before the lens
    left    and lengthen the time by as many stops, or take light away. The
            ladder measures what the filter took, and says it.
 8 Measure  tetherwatch ladder FOLDER --sheet ladder.html
            Look at the sheet at 1:1 and trust your eye: --accept ISO takes
            its word. --save NAME keeps the result as your camera's profile.

TAKE CARE  Lamps and modelling lights get hot: let them cool, keep cloth and
           paper away. Weight stands and booms, tape cables down, keep mains
           cables away from water. Flash heads hold a charge after they are
           switched off: never open one. Follow the makers' manuals and your
           local codes; leave mains work and repairs to qualified people.
"""
