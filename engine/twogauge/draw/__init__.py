"""Pictures: of a diagnosis, a cycle, a hold test, a history, and the card for the wall.

The only room that imports the plotting library, which is the optional extra `plots`; nothing on the way of a diagnosis
imports anything from here. A picture is made once and can be had as SVG, PNG or PDF (picture.py); how all of them look is
decided in look.py. Every maker takes `theme` (LIGHT, DARK) and `size` (PAGE, PHONE):

    saturation_picture(diagnosis, theme=DARK, size=PHONE).as_svg()

gives an element that may stand in a page; `as_bytes("png")` and `as_bytes("pdf")` give files. What is drawn is what was
computed elsewhere: nothing is judged or guessed here.
"""
