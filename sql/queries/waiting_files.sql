select root, path_text, waiting_for from core.arrival where state = 'waiting' order by root, path_text, id
