"""tetherwatch: meters each tethered capture and says which one setting to move.

Data flows one way: folder -> arrival -> frame -> reading -> call -> session -> screens.
"""

__version__ = "0.1.0"
