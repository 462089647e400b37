"""How a text becomes a scene, and how a scene is saved again."""
