"""The work around a diagnosis: is it tight, is it dry, what is in it; one module for each question.

Nothing here is imported on the way to a diagnosis. What is printed stands in output/, what is asked in cli/.
"""
